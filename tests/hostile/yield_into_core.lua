-- ends 0 1: yields, errors and closes from a function the core calls back
local amp = require "ampstead"
local calls = 0
local function law(how)
  return amp.life_model{ name = how, fade = function()
    calls = calls + 1
    if how == "yield" then coroutine.yield(1) end
    if how == "error" then error({}) end
    if how == "nested" then pcall(amp.life_model, { fade = law }) end
    if how == "close" then coroutine.close(coroutine.running()) end
    if how == "text" then return "x" end
    return 0 / 0
  end }
end
for _, how in ipairs { "yield", "error", "nested", "close", "text", "nan" } do
  local co = coroutine.create(function()
    local m = amp.module{ name = "m", chemistry = "nmc111", series = 8,
      parallel = 1, capacity_ah = 60, soh_pct = 85, r10s_mohm = 12 }
    local need = amp.need{ duty = amp.profile.daily{ load_w = 200,
      temp_c = 15 }, life_model = law(how), horizon_years = 3,
      currency = "EUR", discount_pct = 4 }
    return amp.compare({ amp.offer{ name = "o", module = m, count = 7,
      price_each = 100, currency = "EUR" } }, need, { draws = 10 })
  end)
  coroutine.resume(co)
  coroutine.close(co)
end
collectgarbage()
print("kept in")
