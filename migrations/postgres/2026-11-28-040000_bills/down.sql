DROP TABLE bill_parts;
DROP TABLE bills;
