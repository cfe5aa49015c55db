// Libraries that are loaded when something needs them, and not before.
#pragma once

namespace platter {

/// A shared library that stays loaded for the life of the process.
class DynamicLibrary {
 public:
  /// Throws IoError, naming the library, when it cannot be loaded.
  explicit DynamicLibrary(const char* name);

  /// Sets a pointer to a function of the library. Its type comes from the library's header, so that
  /// a signature that changes does not compile. Throws IoError when there is none of that name.
  template <typename Function>
  void find(const char* symbol, Function& function) const {
    function = reinterpret_cast<Function>(address(symbol));
  }

 private:
  [[nodiscard]] void* address(const char* symbol) const;

  const char* name_;
  void* handle_;
};

}  // namespace platter
