// A reference to something that can be called; costs no allocation.
#pragma once

#include <memory>
#include <type_traits>
#include <utility>

namespace platter {

template <typename Signature>
class FunctionRef;

/// Refers to a callable for the time of one call; never store it. Used where a reader hands out
/// entries or extents one by one.
template <typename Result, typename... Arguments>
class FunctionRef<Result(Arguments...)> {
 public:
  template <typename Callable>
  requires(!std::is_same_v<std::remove_cvref_t<Callable>, FunctionRef> &&
           std::is_invocable_r_v<Result, Callable&, Arguments...>) FunctionRef(Callable&& callable)
  noexcept  // NOLINT: meant to be implicit
      : object_(const_cast<void*>(static_cast<const void*>(std::addressof(callable)))),
        call_([](void* object, Arguments... arguments) -> Result {
          return (*static_cast<std::add_pointer_t<Callable>>(object))(
              std::forward<Arguments>(arguments)...);
        }) {}

  Result operator()(Arguments... arguments) const {
    return call_(object_, std::forward<Arguments>(arguments)...);
  }

 private:
  void* object_;
  Result (*call_)(void*, Arguments...);
};

}  // namespace platter
