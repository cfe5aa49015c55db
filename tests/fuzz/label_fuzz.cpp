// Labels, and the boot code that belongs to them, each format by itself.
#include <set>

#include "fuzz/input.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of few functions

namespace {

constexpr std::size_t kSlicesLookedAt = 8;

void promise_claim(const Claim& claim) {
  std::set<std::string> ids;
  for (const Slice& slice : claim.slices) {
    fuzz::promise(!slice.id.empty() && slice.id.find('/') == std::string::npos, "id of a slice");
    fuzz::promise(ids.insert(slice.id).second, "a slice's id is its own");
    fuzz::promise(slice.bytes != 0, "no empty slice");
  }
  fuzz::promise(claim.slices.size() <= 1100 && claim.findings.size() <= 600, "a claim's size");
  fuzz::promise_findings(claim.findings);
}

void ask_boot_formats(const View& view, const Context& context) {
  for (const Format* boot : fuzz::formats_of(Stage::boot)) {
    for (const Claim& claim : boot->claims(view, context))
      promise_claim(claim);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const std::vector<const Format*> labels = fuzz::formats_of(Stage::label);
  fuzz::Input input(data, size);
  const std::size_t choice = input.take();
  const View image(fuzz::image_from(input));
  Context context{.image = image};
  // One number more than there are labels: boot code with no label around it.
  const std::size_t index = choice % (labels.size() + 1);
  if (index == labels.size()) {
    ask_boot_formats(image, context);
    return 0;
  }
  const Format& label = *labels[index];
  for (const Claim& claim : label.claims(image, context)) {
    promise_claim(claim);
    fuzz::promise(!claim.records.empty(), "a label shows what it was read from");
    context = {.image = image, .below = &claim, .below_format = label.id};
    ask_boot_formats(image, context);
    for (std::size_t i = 0; i < std::min(kSlicesLookedAt, claim.slices.size()); ++i) {
      const Slice& slice = claim.slices[i];
      context = {.image = image, .slice = &slice, .label_format = label.id};
      ask_boot_formats(image.sub(slice.start, slice.bytes), context);
    }
  }
  return 0;
}
