"""Calendar files: what reminds a keeper, and is never the record."""
