"""What is kept: the journal, and beside it the cards, photos, devices and settings. SQLAlchemy Core, any database."""
