// Any text can be read as a plan file, and what could be read can be resolved.
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "plan/plan.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto read = platter::plan::read_plan({reinterpret_cast<const char*>(data), size});
  if (read.complaints.empty()) (void)platter::plan::resolve(read.plan, {});
  return 0;
}
