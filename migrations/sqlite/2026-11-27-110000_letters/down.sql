DROP INDEX reminders_done;
DROP TABLE reminders_gone;
ALTER TABLE reminders DROP COLUMN revision;
DROP TABLE letter_lines;
DROP TABLE letters;
DROP TABLE reach;
