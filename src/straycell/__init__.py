"""straycell: recovered lithium cells, from the tear-down to their second work.

The rooms, in flow order:

quantities   volts, ampere-hours, ohms; a value with its uncertainty; parsing and printing
safe_side    limits in two figures, rounded to the side that keeps to them
errors       the one family of user errors and its exit codes
plain_text   what of a text may reach a screen, and JSON that cannot steer one
files        files by the names a person types: read within bounds, written whole
shipped      the tables inside the package, each read once
typed        what a person types: a line of text, a word of a list, a time, a day
teardowns    what was opened, where and when it was found
cells        codes, chemistries, forms, life stages, the facts known of one cell
markings     what the print on a cell says (IEC 61960 designations, trade forms)
meters       what a reading was taken with, and how well it can be trusted
keys         a record's number, its bench's for life
readings     one measured quantity at one time; one recorded charge
traces       recorded curves read from files: steps, capacity, energy, resistance
acceptance   the rules, one small function a rule, the verdict and its reasons
physics      open-circuit curves, self-discharge, run time
labels       what is on a label, where, and the PDF or PNG it becomes
projects     a device waiting for cells, read from its TOML file
matching     which cells serve a project, and why the others do not
pictures     the stock as a picture for the wall
builds       cells committed to a project, position by position
safety       the cautions and where they are shown
store        the SQLite file: tables, triggers, migrations, the only way in and out
bench        the use cases without a terminal: recording and what follows, a cell's sheet, what waits, the guided intake
web          the bench page: the same use cases for a phone or a tablet
cli          the commands, a file a noun
"""

__version__ = "0.1.0"
