"""The local page: a thin face on the same functions as the commands; nothing is reckoned here."""
