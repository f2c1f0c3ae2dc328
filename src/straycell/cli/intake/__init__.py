"""`straycell intake`: the guided evening.

script      what a dialogue may ask, say and have done, as values          words    looks by letter, words by their start
form        questions in a row, each correctable by one key                glyphs   a code in letters a person reads from afar
cell        what is asked of one cell    waiting, due   what a cell waits for, and taking it    evening  the whole
hands       what the store does for it   closing        what is said at the end                 terminal the person's side

The dialogues are generators without any input or output: they yield `script` values and are sent the answers.
"""

from straycell.cli.intake.command import app

__all__ = ["app"]
