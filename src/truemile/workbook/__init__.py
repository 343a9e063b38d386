"""The workbook: the skipper's own data in one file, and every use of it by page, command and Python."""
