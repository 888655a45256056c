"""batchtest: a production test station for small batches of boards."""
