DROP INDEX lots_of_batches;
