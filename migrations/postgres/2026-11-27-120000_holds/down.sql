DROP TABLE holds;
