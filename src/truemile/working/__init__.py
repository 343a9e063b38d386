"""The lines that a navigator writes by hand behind each result."""
