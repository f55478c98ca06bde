"""What a day was: figures, charts and tables out of the journal. Pure: it knows no web, no database and no clock."""
