// Any bytes can be taken for a container: they are unpacked within the limit, or refused.
#include "core/packed.h"
#include "fuzz/input.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of one function

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  constexpr std::uint64_t kLimit = std::uint64_t{1} << 20U;
  const fuzz::Input input(data, size);
  (void)container_kind(input.bytes());
  const fuzz::PaddedSource source(input.bytes(), 0);
  try {
    const Unpacked unpacked = unpack(source, "input", std::nullopt, kLimit);
    fuzz::promise(unpacked.source == nullptr || unpacked.source->size() <= kLimit,
                  "no more is unpacked than the limit allows");
  } catch (const IoError& error) {
    fuzz::promise(!error.reason().empty(), "a refusal has a reason");
  }
  return 0;
}
