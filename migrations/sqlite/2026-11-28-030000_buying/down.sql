DROP TABLE substitutes;
DROP TABLE openings;
DROP INDEX lots_bought;
DROP TABLE upkeep;
