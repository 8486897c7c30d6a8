"""In and out: tables of records in CSV, XLSX, JSON Lines and Parquet, and readings from instruments."""
