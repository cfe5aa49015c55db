// Dumps of optical frames, found and read frame by frame, and dumps with swapped words.
#include "core/view.h"
#include "framing/examine.h"
#include "framing/framed_source.h"
#include "framing/swapped_source.h"
#include "fuzz/input.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of few functions

namespace {

void examine_and_read(const std::shared_ptr<const ByteSource>& image,
                      const framing::FrameLayout& layout) {
  fuzz::promise(layout.place_of(layout.frames) <= image->size() && layout.pregap <= layout.frames,
                "frames lie in the image");
  const auto write = [&](std::uint64_t offset, std::span<const std::byte> bytes) {
    fuzz::promise(offset <= layout.plain_bytes() && bytes.size() <= layout.plain_bytes() - offset,
                  "plain bytes lie in the plain image");
  };
  const framing::Examination seen =
      framing::examine(*image, layout, {.repair = true, .jobs = 1, .write = write});
  fuzz::promise(seen.finished, "an examination comes to its end");
  std::uint64_t next = 0;
  for (const framing::FrameRun& run : seen.runs) {
    fuzz::promise(run.first == next && run.frames != 0, "frame runs follow one another");
    next += run.frames;
  }
  fuzz::promise(next == layout.frames, "frame runs are all frames");
  for (const framing::BadFrame& bad : seen.bad)
    fuzz::promise(bad.frame < layout.frames, "a bad frame is one");

  const framing::FramedSource plain(image, layout);
  std::vector<std::byte> bytes(
      static_cast<std::size_t>(std::min<std::uint64_t>(plain.size(), std::uint64_t{1} << 20U)));
  fuzz::promise(plain.read(0, bytes) == bytes.size(), "a plain image is as long as it says");
  for (std::uint64_t at = 0; at < plain.size(); at += 2047) {
    const auto place = plain.stored_place(at);
    fuzz::promise(!place || *place < image->size(), "a stored place lies in the image");
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  const std::shared_ptr<const ByteSource> image = fuzz::image_from(input);
  const View view(image);
  for (const std::uint32_t distance : framing::kFrameDistances) {
    if (const auto layout = framing::find_layout(view, distance)) examine_and_read(image, *layout);
  }
  for (const Format* format : fuzz::formats_of(Stage::framing)) {
    for (const Claim& claim : format->claims(view, {.image = view}))
      fuzz::promise_findings(claim.findings);
  }
  for (const unsigned word : {2U, 4U}) {
    const framing::SwappedSource swapped(image, word);
    std::array<std::byte, 37> some{};
    (void)swapped.read(swapped.size() / 3, some);
  }
  return 0;
}
