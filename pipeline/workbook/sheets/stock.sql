SELECT * FROM stock_plan
