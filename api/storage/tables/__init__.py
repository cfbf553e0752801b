"""Database tables, as SQLAlchemy classes, by subject."""
