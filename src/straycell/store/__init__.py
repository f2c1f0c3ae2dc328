"""The store: one SQLite file, the only way in and out of it, and the guards that keep its history true.

`open_reader` and `open_writer` (in reader.py and writer.py) are the two doors; everything else serves them.
"""
