"""planning: homes, areas, dead zones and what people plan with. It reads results and the user's layers."""
