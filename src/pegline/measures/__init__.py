"""The grammar and the record of each kind of measure that can be booked."""
