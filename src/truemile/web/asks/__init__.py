"""The questions of every form, with names as the workbook's own entries have them."""
