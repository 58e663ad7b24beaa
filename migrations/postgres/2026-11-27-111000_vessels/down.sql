DROP TABLE fillings;
DROP TABLE vessels;
