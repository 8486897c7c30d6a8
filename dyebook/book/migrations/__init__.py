"""The schema through the years, as Alembic migrations; `dyebook.book.versions` runs them when a book is opened."""
