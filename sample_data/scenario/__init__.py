"""The invented scenario behind sample_data/: regions, wells that obey their hydrogeology, and planted faults."""
