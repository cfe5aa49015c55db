// One optical frame: what it is, its codes by both implementations, and its correction.
#include <array>

#include "framing/sector_code.h"
#include "fuzz/input.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of one function

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  sector_code::Frame frame{};
  std::ranges::copy(input.take_first(frame.size()), frame.begin());
  const sector_code::FrameCheck check = sector_code::check(frame);
  fuzz::promise(check == sector_code::check(frame, sector_code::Path::portable),
                "both implementations agree");
  sector_code::Frame corrected = frame;
  const sector_code::RepairResult result = sector_code::repair(corrected);
  if (result.outcome != sector_code::RepairOutcome::corrected) {
    fuzz::promise(corrected == frame && result.changes.empty(), "what is not corrected stays");
    return 0;
  }
  fuzz::promise(sector_code::check(corrected).sound(), "a corrected frame is sound");
  for (const sector_code::ChangedByte& change : result.changes) {
    fuzz::promise(change.offset < frame.size() && frame[change.offset] == change.before &&
                      corrected[change.offset] == change.after,
                  "changes are told as they were made");
    frame[change.offset] = change.after;
  }
  fuzz::promise(frame == corrected, "every change is told");
  return 0;
}
