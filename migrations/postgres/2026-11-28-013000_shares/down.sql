DROP TABLE wishes;
DROP TABLE shares;
