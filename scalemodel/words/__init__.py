"""What people read: sentences and tables made from the results of the other rooms."""
