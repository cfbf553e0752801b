"""Storage of import and export: files of logs."""
