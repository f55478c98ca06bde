"""When will it be ready? Arrays in, arrays out; a seed goes in where chance is needed.

Pure: no clock, no database, no web. `quotes` is the way in; what it measures on a past journal is `replay`'s and
`score`'s to say.
"""
