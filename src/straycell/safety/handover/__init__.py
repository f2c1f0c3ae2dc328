"""What leaves the house: which list a cell is on, how it must be packed, and the PDF."""
