"""The reference photo: how it comes in. Pure functions of bytes; nothing here knows a ticket or the store."""
