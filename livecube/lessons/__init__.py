"""Teaching: demonstrations, step by step."""
