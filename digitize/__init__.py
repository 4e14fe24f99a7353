"""digitize: true-size outlines of objects from a picture beside a reference square."""

__version__ = "0.1.0"
