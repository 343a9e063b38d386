"""Charts as declared specifications, drawn alike on the page, in the PDF and in a notebook."""
