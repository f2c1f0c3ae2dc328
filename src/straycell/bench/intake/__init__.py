"""The guided intake, without its terminal: dialogues that yield what they ask, say and have done.

script      what a dialogue may ask, say and have done; questions in a row words    looks by letter, words by their start
cell        what is asked of one cell
due         the readings a cell waits for    figures  their prompts        records  recording one cell, and the way back
log         cell after cell of a tear-down   waiting_round  the cells that wait     session  the whole
store_actions  what the store does for it    closing  what is said at the end     state    an evening, and its meters

The dialogues are generators without any input or output: they yield `script` values and are sent the answers.
"""
