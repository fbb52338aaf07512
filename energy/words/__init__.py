"""Results in sentences, rows of tables and JSON: one module a question."""
