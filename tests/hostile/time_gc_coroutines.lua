-- ends 124: a finalizer that swaps coroutines for ever, where no hook is
setmetatable({}, { __gc = function ()
  local co = coroutine.wrap(function ()
    while true do coroutine.yield() end
  end)
  while true do co() end
end })
collectgarbage()
collectgarbage()
