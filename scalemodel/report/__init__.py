"""For people: figures and pages."""
