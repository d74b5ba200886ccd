"""Figures: pure functions of arrays. They know nothing of files, limits of documents, or reports."""
