DROP TABLE tasting_marks;
DROP TABLE tasting_answers;
DROP TABLE tasting_sheets;
DROP TABLE tasting_attributes;
DROP TABLE attributes;
DROP TABLE tasting_glasses;
DROP TABLE tasting_samples;
DROP TABLE tastings;
