"""What stands on a label, where, and the PDF or PNG it becomes.

payload  what the QR symbol holds        content  which lines a cell's label carries
stock    sheets of labels, in mm         layout   where everything stands, in mm
render   the PDF sheet, the PNG label    reading  codes back from a picture

`render` is not imported here: it loads the QR and PDF libraries, which no command but `label` needs.
"""
