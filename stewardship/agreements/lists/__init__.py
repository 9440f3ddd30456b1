"""A program's book as lists: brought in from a spreadsheet or CSV after a look, and written out in the same columns."""
