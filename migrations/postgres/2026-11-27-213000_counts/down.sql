DROP TABLE tallies;
DROP TABLE count_lines;
DROP TABLE counts;
DROP TABLE walking_order;
ALTER TABLE entries DROP COLUMN happened_at;
ALTER TABLE clubs DROP COLUMN tolerance_pieces;
ALTER TABLE clubs DROP COLUMN tolerance_permille;
