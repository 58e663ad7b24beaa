DROP TABLE substitutes;
