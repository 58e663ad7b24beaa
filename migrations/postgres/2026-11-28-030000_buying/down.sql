DROP INDEX lots_bought;
DROP TABLE upkeep;
