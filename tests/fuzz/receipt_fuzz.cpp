// Any text can be read as a receipt or as a block map; what could be read is written as it was.
#include "fuzz/input.h"
#include "plan/block_map.h"
#include "plan/receipt.h"

using namespace platter::plan;  // NOLINT(google-build-using-namespace): a program of one function
namespace fuzz = platter::fuzz;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const fuzz::Input input(data, size);
  if (const auto receipt = read_receipt(input.text())) {
    fuzz::promise(read_receipt(receipt_text(*receipt.value)).value == receipt.value,
                  "a receipt comes back as it was");
    const std::string path = receipt_path("dir/plan.toml", receipt.value->region);
    fuzz::promise(path.starts_with("dir/plan.") && path.find('/', 4) == std::string::npos,
                  "a receipt lies beside its plan");
  } else {
    fuzz::promise(!receipt.error.empty(), "a refusal has a reason");
  }
  if (const auto map = read_block_map(input.text())) {
    fuzz::promise(read_block_map(write_block_map(*map.value)).value == map.value,
                  "a block map comes back as it was");
  } else {
    fuzz::promise(!map.error.empty(), "a refusal has a reason");
  }
  return 0;
}
