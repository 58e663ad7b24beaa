-- What was made of a batch is found by it.

CREATE INDEX lots_of_batches ON lots (batch_id, entry_id) WHERE batch_id IS NOT NULL;
