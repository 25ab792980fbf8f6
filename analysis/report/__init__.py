"""The answer as a page, a table and a folder that opens anywhere."""
