"""How large the report is and how soon a reader can use it, on an invented voyage of 400 units."""
