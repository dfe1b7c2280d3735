"""Runs the renderer's ONNX graph with PyTorch, node by node, so that speech can be
rendered on a GPU whose machine has no onnxruntime for it.

Only the operators of that one graph are here. Whole-number arithmetic of its
quantised layers is done in floating point, which holds these numbers exactly or
nearly so; test_onnx_on_torch in this file compares with onnxruntime.
"""
import numpy as np, onnx, torch, torch.nn.functional as F
from onnx import numpy_helper

TYPES = {1: torch.float32, 2: torch.uint8, 3: torch.int8, 6: torch.int32, 7: torch.int64, 9: torch.bool, 10: torch.float16, 11: torch.float64}


class Graph:
    def __init__(self, path, device):
        self.device = torch.device(device)
        graph = onnx.load(path).graph
        self.inputs = [i.name for i in graph.input]
        self.outputs = [o.name for o in graph.output]
        self.fixed = {}
        for t in graph.initializer:
            v = torch.from_numpy(numpy_helper.to_array(t).copy())
            # Whole numbers that steer shapes stay where Python can read them at once.
            self.fixed[t.name] = v if v.dtype in (torch.int64, torch.int32) else v.to(self.device)
        last = {name: k for k, n in enumerate(graph.node) for name in n.input}
        self.steps = []
        for k, n in enumerate(graph.node):
            a = {x.name: onnx.helper.get_attribute_value(x) for x in n.attribute}
            done = [name for name in set(n.input) if last[name] == k and name not in self.fixed and name not in self.outputs]
            self.steps.append((getattr(self, 'op_' + n.op_type), a, list(n.input), list(n.output), done, n.name))
        self.cache = {}

    def run(self, **inputs):
        values = dict(self.fixed)
        values.update({k: torch.as_tensor(v).to(self.device) for k, v in inputs.items()})
        with torch.inference_mode():
            for op, a, names, outs, done, name in self.steps:
                try:
                    result = op(a, *[values[x] if x else None for x in names])
                except Exception as e:
                    raise RuntimeError(f'{op.__name__} {name}: {[(tuple(values[x].shape), values[x].dtype, values[x].device) for x in names if x]}') from e
                if not isinstance(result, tuple):
                    result = (result,)
                for x, v in zip(outs, result):
                    if x:
                        values[x] = v
                for x in done:
                    values.pop(x, None)
        return [values[o] for o in self.outputs]

    def together(self, *ts):
        """On the GPU if any of them is."""
        if all(t.device == ts[0].device for t in ts):
            return ts
        return tuple(t.to(self.device) for t in ts)

    # elementwise
    def op_Add(self, a, x, y): x, y = self.together(x, y); return x + y
    def op_Sub(self, a, x, y): x, y = self.together(x, y); return x - y
    def op_Mul(self, a, x, y): x, y = self.together(x, y); return x * y
    def op_Div(self, a, x, y):
        x, y = self.together(x, y)
        return x / y if x.is_floating_point() else torch.div(x, y, rounding_mode='trunc')
    def op_Pow(self, a, x, y): x, y = self.together(x, y); return x ** y
    def op_Sqrt(self, a, x): return x.sqrt()
    def op_Floor(self, a, x): return x.floor()
    def op_Round(self, a, x): return x.round()
    def op_Sin(self, a, x): return x.sin()
    def op_Cos(self, a, x): return x.cos()
    def op_Exp(self, a, x): return x.exp()
    def op_Atan(self, a, x): return x.nan_to_num(0.).atan()  # of a phase: 0/0 where it is silent
    def op_Tanh(self, a, x): return x.tanh()
    def op_Sigmoid(self, a, x): return x.sigmoid()
    def op_LeakyRelu(self, a, x): return F.leaky_relu(x, a.get('alpha', .01))
    def op_Clip(self, a, x, low=None, high=None): return torch.clamp(x, *(None if v is None else v.to(x.device) for v in (low, high)))
    def op_Equal(self, a, x, y): x, y = self.together(x, y); return x == y
    def op_Greater(self, a, x, y): x, y = self.together(x, y); return x > y
    def op_GreaterOrEqual(self, a, x, y): x, y = self.together(x, y); return x >= y
    def op_Less(self, a, x, y): x, y = self.together(x, y); return x < y
    def op_And(self, a, x, y): x, y = self.together(x, y); return x & y
    def op_Where(self, a, c, x, y): c, x, y = self.together(c, x, y); return torch.where(c, x, y)
    def op_Cast(self, a, x): return x.to(TYPES[a['to']])
    def op_FastGelu(self, a, x, bias=None): return F.gelu(x if bias is None else x + bias, approximate='tanh')
    def op_Softmax(self, a, x): return x.softmax(a.get('axis', -1))

    # shapes
    def op_Shape(self, a, x): return torch.tensor(x.shape[a.get('start', 0):a.get('end')], dtype=torch.int64)
    def op_Gather(self, a, x, i):
        x, i = self.together(x, i)
        axis = a.get('axis', 0) % x.dim()
        i = torch.where(i < 0, i + x.shape[axis], i)
        return x.index_select(axis, i.reshape(-1)).reshape((*x.shape[:axis], *i.shape, *x.shape[axis + 1:]))
    def op_Split(self, a, x, sizes): return x.split(sizes.tolist(), a.get('axis', 0))
    def op_Unsqueeze(self, a, x, axes):
        for k in sorted(axes.reshape(-1).tolist()):
            x = x.unsqueeze(k)
        return x
    def op_Squeeze(self, a, x, axes):
        for k in sorted((v % x.dim() for v in axes.tolist()), reverse=True):
            x = x.squeeze(k)
        return x
    def op_Transpose(self, a, x): return x.permute(*a['perm'])
    def op_Concat(self, a, *xs): return torch.cat(self.together(*xs), a['axis'])
    def op_Reshape(self, a, x, shape):
        return x.reshape([x.shape[k] if n == 0 and not a.get('allowzero') else n for k, n in enumerate(shape.tolist())])
    def op_Expand(self, a, x, shape):
        shape = shape.tolist()
        return x.expand(torch.broadcast_shapes(x.shape, shape))
    def op_Slice(self, a, x, starts, ends, axes=None, steps=None):
        axes = range(len(starts)) if axes is None else axes.tolist()
        steps = [1] * len(starts) if steps is None else steps.tolist()
        cut = [slice(None)] * x.dim()
        for s, e, k, step in zip(starts.tolist(), ends.tolist(), axes, steps):
            assert step > 0
            cut[k] = slice(s, min(e, 1 << 40), step)
        return x[tuple(cut)]
    def op_ConstantOfShape(self, a, shape):
        v = torch.from_numpy(numpy_helper.to_array(a['value']).copy())
        return torch.full(shape.tolist(), v.item(), dtype=v.dtype, device='cpu' if v.dtype in (torch.int64, torch.int32) else self.device)
    def op_Range(self, a, start, end, step):
        return torch.arange(start.item(), end.item(), step.item(), dtype=end.dtype, device=self.device)
    def op_NonZero(self, a, x): return x.nonzero().T
    def op_Pad(self, a, x, pads):
        p, n = pads.tolist(), x.dim()
        pairs = [v for k in reversed(range(n)) for v in (p[k], p[k + n])]
        while len(pairs) > 2 and pairs[-1] == pairs[-2] == 0:
            pairs = pairs[:-2]
        y = x if x.dim() > 1 else x[None]
        return F.pad(y, pairs, mode=a.get('mode', b'constant').decode()).reshape(*([-1] if x.dim() == 1 else y.shape[:-1] + (-1,)))
    def op_ScatterND(self, a, x, i, updates):
        x, i, updates = self.together(x, i, updates)
        x = x.clone()
        x[tuple(i[..., k] for k in range(i.shape[-1]))] = updates
        return x

    # sums
    def op_ReduceMean(self, a, x, axes): return x.mean(axes.tolist(), bool(a.get('keepdims', 1)))
    def op_ReduceSum(self, a, x, axes): return x.sum(axes.tolist(), bool(a.get('keepdims', 1)))
    def op_CumSum(self, a, x, axis): return x.cumsum(int(axis))
    def op_MatMul(self, a, x, y): return x @ y
    def op_FusedMatMul(self, a, x, y): return (x.transpose(-1, -2) if a.get('transA') else x) @ (y.transpose(-1, -2) if a.get('transB') else y) * a.get('alpha', 1.)
    def op_LayerNormalization(self, a, x, g, b): return F.layer_norm(x, (x.shape[-1],), g, b, a['epsilon'])
    def op_SkipLayerNormalization(self, a, x, skip, g, b, bias=None):
        s = x + skip if bias is None else x + skip + bias
        return F.layer_norm(s, (s.shape[-1],), g, b, a['epsilon'])

    # quantised layers
    def op_DynamicQuantizeLinear(self, a, x):
        low, high = x.amin().clamp(max=0), x.amax().clamp(min=0)
        scale = ((high - low) / 255).clamp(min=1e-30)
        zero = (-low / scale).round().clamp(0, 255)
        return ((x / scale).round() + zero).clamp(0, 255), scale, zero
    def op_DequantizeLinear(self, a, x, scale, zero=None): return (x.float() - (0 if zero is None else zero.float())) * scale
    def weight(self, w, zero):
        key = w.data_ptr()
        if key not in self.cache:
            self.cache[key] = w.float() - zero.float()
        return self.cache[key]
    def op_MatMulInteger(self, a, x, w, xz, wz): return (x - xz) @ self.weight(w, wz)
    def op_ConvInteger(self, a, x, w, xz, wz):
        return F.conv1d(x - xz, self.weight(w, wz), None, a['strides'], a['pads'][0], a['dilations'], a['group'])
    def op_Conv(self, a, x, w, b=None): return F.conv1d(x, w, b, a['strides'], a['pads'][0], a['dilations'], a['group'])
    def op_ConvTranspose(self, a, x, w, b=None):
        return F.conv_transpose1d(x, w, b, a['strides'], a['pads'][0], a.get('output_padding', [0]), a['group'], a['dilations'])
    def op_Resize(self, a, x, roi, scales):
        size = [int(n * s) for n, s in zip(x.shape, scales.tolist())][2:]
        if a['mode'] == b'nearest':
            assert a['coordinate_transformation_mode'] == b'asymmetric'
            return F.interpolate(x, size=size, mode='nearest')
        return F.interpolate(x, scale_factor=scales.tolist()[2:], mode='linear', align_corners=False, recompute_scale_factor=False)
    def op_STFT(self, a, x, step, window, length=None):
        n = int(length)
        frames = x.reshape(x.shape[0], -1).unfold(-1, n, int(step)) * window
        return torch.view_as_real(torch.fft.rfft(frames, n=n))
    def op_DynamicQuantizeLSTM(self, a, x, w, r, b, lens, h0, c0, p, ws, wz, rs, rz):
        key = w.data_ptr()
        if key not in self.cache:
            h, flat = a['hidden_size'], []
            order = torch.cat([torch.arange(k * h, (k + 1) * h) for k in (0, 2, 3, 1)]).to(self.device)  # i o f c -> i f c o
            for d in range(2):
                into = ((w[d].float() - wz[d].float()) * ws[d]).T[order].contiguous()
                back = ((r[d].float() - rz[d].float()) * rs[d]).T[order].contiguous()
                flat += [into, back, b[d][:4 * h][order].contiguous(), b[d][4 * h:][order].contiguous()]
            self.cache[key] = flat
        h0, c0 = (v.to(self.device) for v in (h0, c0))
        y, h, c = torch._VF.lstm(x, (h0.contiguous(), c0.contiguous()), self.cache[key], True, 1, 0., False, True, False)
        # ONNX keeps the two directions apart: [time, direction, batch, hidden].
        return y.reshape(*y.shape[:2], 2, -1).permute(0, 2, 1, 3), h, c


def test_onnx_on_torch(path, plan, styles, count=6):
    """Renders a few phrases of a plan with both and prints how alike they are."""
    import json, time, onnxruntime
    session, graph = onnxruntime.InferenceSession(path, providers=['CPUExecutionProvider']), Graph(path, 'cuda' if torch.cuda.is_available() else 'cpu')
    packed = np.load(styles)
    for line in list(open(plan))[:count]:
        item = json.loads(line)
        style = sum(s * packed[v].astype(np.float32)[len(item['ids'])] for v, s in item['mix']).reshape(1, 256)
        feed = dict(tokens=np.array([[0, *item['ids'], 0]], np.int64), style=style.astype(np.float32), speed=np.array([item['speed']], np.float32))
        t = time.time(); want = session.run(None, feed)[0]
        u = time.time(); got = graph.run(**feed)[0].cpu().numpy(); v = time.time()
        n = min(len(want), len(got))
        spectra = [np.log(np.abs(np.fft.rfft(x[:n // 480 * 480].reshape(-1, 480) * np.hanning(480))) + 1e-3) for x in (want, got)]
        print(len(want), len(got), 'correlation of log spectra', round(float(np.corrcoef(spectra[0].ravel(), spectra[1].ravel())[0, 1]), 4),
              'onnxruntime', round(u - t, 2), 's, torch', round(v - u, 2), 's')


if __name__ == '__main__':
    import sys
    test_onnx_on_torch(*sys.argv[1:4])
