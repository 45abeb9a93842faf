std = "lua54"
max_line_length = 100
files["tests/lua"] = { std = "+lua54" }
