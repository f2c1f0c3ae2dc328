"""What leaves the house: which list a cell stands on, how it must be packed, and the PDF."""
