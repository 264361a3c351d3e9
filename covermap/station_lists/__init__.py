"""station_lists: any table of stations -> rows with our columns. It opens tables; it knows no physics."""
