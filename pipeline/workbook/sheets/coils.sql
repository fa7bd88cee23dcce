SELECT * FROM coil_plan
