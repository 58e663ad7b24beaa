DROP TABLE plan_supplies;
DROP TABLE plan_steps;
