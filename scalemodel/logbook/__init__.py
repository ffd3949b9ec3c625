"""The facts: dated records, the file that keeps them, CSV in and out."""
