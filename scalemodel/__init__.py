"""From what you see in a small boiler to the date by which it needs descaling."""
