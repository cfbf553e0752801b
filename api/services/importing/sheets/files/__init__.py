"""Files of sheets: readers of text files and workbooks give sheets of cells."""
