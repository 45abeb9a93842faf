-- ends 0 1: library functions replaced before the tool's half is loaded,
-- which gives nothing that was not there before
local stolen = {}
for lib in pairs { string = 1, table = 1, math = 1 } do
  for name, f in pairs(_G[lib]) do
    if type(f) == "function" then
      _G[lib][name] = function(...)
        for _, x in ipairs { ... } do
          if type(x) == "userdata" or type(x) == "function" then
            stolen[#stolen + 1] = x
          end
        end
        return f(...)
      end
    end
  end
end
local ok, amp = pcall(require, "ampstead")
if ok then pcall(amp.chemistries) end
for _, x in ipairs(stolen) do
  if type(x) == "userdata" and type(getmetatable(x)) == "table" then
    print("GOT OUT")
    return
  end
end
print("kept in")
