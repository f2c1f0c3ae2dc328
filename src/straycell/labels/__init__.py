"""What is on a label, where, and the PDF or PNG it becomes.

payload  what the QR symbol holds        content  what a label says, by what the cell may do
stocks/  sheets of labels, in mm         layout   where everything is, in mm
faces    the embedded fonts              document one kind of PDF for every paper
render   the PDF sheet                   picture  the PNG of one label
reading  codes back from a picture

Nothing is imported here: render and picture load the QR, PDF and picture libraries, which few commands need.
"""
