"""Results into what people see: figures, tables, one page, a manifest. Knows nothing of how a number was made."""
