"""What is true at a booth: the journal's events, and the booth that folds out of them.

Pure: no clock, no database, no web, no chance. `now` comes in as an argument.
"""
