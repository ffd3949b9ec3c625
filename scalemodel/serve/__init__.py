"""The pages at the machine: a door beside the command line, drawn on the server for the phone in the hand."""
