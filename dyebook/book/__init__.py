"""The book: every batch, kept."""
