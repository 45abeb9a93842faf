--- Counts what held and what did not: the helper of the Lua tests.
local check = { passed = 0, failed = 0 }

local function report (ok, what, detail)
  if ok then
    check.passed = check.passed + 1
  else
    check.failed = check.failed + 1
    local at = debug.getinfo(2, "Sl") -- callers tail-call this
    io.stderr:write(string.format("%s:%d: %s%s\n", at.short_src,
      at.currentline, what, detail and ": " .. detail or ""))
  end
  return ok
end

--- The statement holds.
function check.ok (value, what)
  return report(value and true or false, what or "expected to hold")
end

--- Equal, numbers and strings alike.
function check.equal (got, want, what)
  return report(got == want, what or "differs",
    string.format("got %s, want %s", tostring(got), tostring(want)))
end

--- Within 'tol' of the number wanted.
function check.close (got, want, tol, what)
  local ok = type(got) == "number" and math.abs(got - want) <= tol
  return report(ok, what or "not close",
    string.format("got %s, want %s within %s", tostring(got), tostring(want),
      tostring(tol)))
end

--- The text holds the words, taken literally.
function check.has (text, words, what)
  return report(type(text) == "string" and
    text:find(words, 1, true) ~= nil, what or "words are missing",
    string.format("no '%s' in:\n%s", words, tostring(text)))
end

--- Calling it raises, and the message holds the words.
function check.raises (fn, words, what)
  local ok, message = pcall(fn)
  if ok then return report(false, what or "should have raised", words) end
  return report(tostring(message):find(words, 1, true) ~= nil,
    what or "another message", string.format("no '%s' in: %s", words,
      tostring(message)))
end

--- Print the count and end the script with its exit status.
function check.done ()
  print(string.format("%d passed, %d failed", check.passed, check.failed))
  os.exit(check.failed == 0)
end

return check
