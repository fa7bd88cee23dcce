"""What the columns of a table that no layout knows are taken to be, and how sure that is."""
