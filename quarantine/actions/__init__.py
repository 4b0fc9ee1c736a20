"""What a keeper does, one function each, one transaction each: what every interface calls."""
