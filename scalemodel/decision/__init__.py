"""The dates: risk by a date, and how long a descale can be deferred."""
