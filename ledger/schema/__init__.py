"""From documents to checked documents: the schemas, a validator that accepts, one that explains."""
