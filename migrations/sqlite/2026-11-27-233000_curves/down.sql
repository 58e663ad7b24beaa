DROP TABLE reading_weeks;
