DROP TABLE reasons;
