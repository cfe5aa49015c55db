#include "core/dynamic_library.h"

#include <dlfcn.h>
#include <fmt/format.h>

#include "core/source.h"

namespace platter {

DynamicLibrary::DynamicLibrary(const char* name)
    : name_(name), handle_(dlopen(name, RTLD_NOW | RTLD_LOCAL)) {
  if (handle_ == nullptr) throw IoError(name, 0, 0, fmt::format("cannot be loaded: {}", dlerror()));
}

void* DynamicLibrary::address(const char* symbol) const {
  void* found = dlsym(handle_, symbol);
  if (found == nullptr) throw IoError(name_, 0, 0, fmt::format("has no function {}", symbol));
  return found;
}

}  // namespace platter
