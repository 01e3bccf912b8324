"""What can be booked: the grammar and the record of each kind of measure."""
