// Living through a mapping that cannot be read.
//
// A mapped file that shrinks, or whose medium fails, answers with the signal SIGBUS. Inside
// survives_bus_error() that signal becomes a return value; every other SIGBUS goes on to whoever
// was there before.
#pragma once

namespace platter {

/// Calls work(context). False when a page of a mapping could not be brought in meanwhile: `work`
/// then ends where it was, without destructors, and what it worked on is good for nothing but being
/// thrown away. It must not throw.
[[nodiscard]] bool survives_bus_error(void (*work)(void* context) noexcept, void* context);

/// The same for anything that can be called.
template <typename Work>
[[nodiscard]] bool survives_bus_error(Work& work) {
  return survives_bus_error([](void* context) noexcept { (*static_cast<Work*>(context))(); },
                            static_cast<void*>(&work));
}

}  // namespace platter
