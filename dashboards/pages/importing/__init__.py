"""Pages of import and export: files of logs."""
