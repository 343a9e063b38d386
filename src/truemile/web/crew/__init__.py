"""The crew link: a short set of pages on the boat's own network, for phones that have joined."""
