"""The guided intake, without its terminal: dialogues that yield what they ask, say and have done.

questions.toml  the table of questions: prompt, what Enter takes, what `?` answers
script      what a dialogue may ask, say and have done; questions in a row words    looks by letter, words by their start
cell        what is asked of one cell                                      due      the readings a cell waits for
records     recording one cell, and the way back                           log      cell after cell of a tear-down
session     the whole evening, or the cells that wait                      state    what came together, and its meters
store_actions  what the store does for it

The dialogues are generators without any input or output: they yield `script` values and are sent the answers.
"""
