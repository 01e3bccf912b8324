"""Further sheets on request: peg cards, the diagram of lines, pages of the field book."""
