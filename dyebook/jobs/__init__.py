"""The use cases that join photo, book, model and advice; shell and screens call these."""
