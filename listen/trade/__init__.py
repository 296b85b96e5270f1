"""What a mechanic knows, as tables: layouts, points, paths, readings, rules of thumb, cautions."""
